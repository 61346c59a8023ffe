"""The stand on a real wire: Modbus TCP and Modbus RTU servers, and their faults."""

from simulator.wire.pace import LockStep, Pace, RealTime, Still
from simulator.wire.process import ServerProcess, start_server_process
from simulator.wire.rtu import RtuServer, serve_rtu
from simulator.wire.tcp import TcpServer, serve_tcp

__all__ = [
    "LockStep",
    "Pace",
    "RealTime",
    "RtuServer",
    "ServerProcess",
    "Still",
    "TcpServer",
    "serve_rtu",
    "serve_tcp",
    "start_server_process",
]
