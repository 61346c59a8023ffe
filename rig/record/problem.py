"""What can go wrong with a record, in the words of the person who needs it."""


class RecordProblem(Exception):
    """A record that cannot be written, or a folder that cannot be read as a record."""
