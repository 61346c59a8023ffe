"""What can go wrong with a record, in the words of the person who needs it."""


class RecordProblem(Exception):  # noqa: N818 - told to a person, who has a problem, not an error
    """A record that cannot be written, or a folder that cannot be read as a record."""


class RecordLost(RecordProblem):
    """The record of a run that is on cannot be kept any more: the run ends."""
