"""What a person asked for and cannot have."""


class BadRequest(Exception):  # noqa: N818 - what the person asked cannot be done; says why
    pass
