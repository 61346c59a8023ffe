"""A serial line that is a pseudo-terminal: one end for the server, a device name for the client. POSIX."""

import os


class PseudoLine:
    """Both ends raw and kept open, so that clients may come and go."""

    def __init__(self) -> None:
        import tty

        self.server_fd, self._client_fd = os.openpty()
        for end in (self.server_fd, self._client_fd):
            tty.setraw(end)  # else the bytes 0A, 0D and 03 are changed and requests come back as echo
        self.device = os.ttyname(self._client_fd)

    def close(self) -> None:
        os.close(self._client_fd)
        os.close(self.server_fd)

    def __enter__(self) -> "PseudoLine":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
