"""Force arithmetic, pure: the balance of a valve, one idea a file. Turns of the adjuster: `adjuster.py`."""
