"""`stemrig simulate`: serve the simulated stand to any Modbus client, until Ctrl-C."""

import argparse
from typing import TYPE_CHECKING

from rig.cli.exits import PASS, WRONG_INPUT
from rig.cli.options import add_profile, add_stand

if TYPE_CHECKING:
    from rig.stand.model import Stand

HELP = "serve the simulated stand over Modbus TCP or a serial device, for any client"


def arguments(parser: argparse.ArgumentParser) -> None:
    add_profile(parser)
    add_stand(parser)
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--tcp", type=int, metavar="PORT", default=5020, help="loopback port (default: 5020)")
    where.add_argument("--serial", metavar="DEVICE", help="serial device or pseudo-terminal")
    parser.add_argument("--speed", type=float, default=1.0, metavar="N", help="times life speed (default: 1)")


def run(args: argparse.Namespace) -> int:
    import sys
    import threading

    from rig.cli.session import demo_actuator
    from rig.profile.load import load_profile
    from rig.stand.file import load_stand
    from simulator import SimulatedStand
    from simulator.wire import RealTime, RtuServer, TcpServer, serve_rtu, serve_tcp

    if not args.speed > 0.0:
        print("--speed must be above zero", file=sys.stderr)
        return WRONG_INPUT
    stand = load_stand(args.stand)
    machine = SimulatedStand(stand, demo_actuator(load_profile(args.profile)))
    pace = RealTime(args.speed)
    server: TcpServer | RtuServer
    if args.serial:
        server, where = serve_rtu(machine, args.serial, _baud(stand), pace), args.serial
    else:
        tcp = serve_tcp(machine, args.tcp, pace)
        server, where = tcp, f"127.0.0.1:{tcp.port}"
    print(f"simulated stand '{stand.name}' answers on {where}; Ctrl-C ends it", flush=True)
    try:
        threading.Event().wait()
    except KeyboardInterrupt:
        pass
    finally:
        server.close()
    return PASS


def _baud(stand: "Stand") -> int:
    from rig.stand.model import RtuLink

    rtu = next((link for link in stand.links.values() if isinstance(link, RtuLink)), None)
    return rtu.baud if rtu else 19200
