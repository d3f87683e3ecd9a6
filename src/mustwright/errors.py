"""What can be wrong with what a maker typed, in one sentence that helps."""


class MustwrightError(Exception):
    """Base of every error a shell may show to the maker."""


class InputError(MustwrightError):
    """A field holds something that cannot be used.

    Parameters
    ----------
    field : str
        Where it stands, dotted as in the sheet (``must.volume``).
    requirement : str
        What the field needs.
    got : object
        What came.
    """

    def __init__(self, field: str, requirement: str, got: object) -> None:
        self.field = field
        self.requirement = requirement
        self.got = got
        super().__init__(f"{field}: {requirement}, got {_shown(got)}")


class ImpossibleError(InputError):
    """Every field is readable on its own, but together they cannot be met."""


class UnknownKindError(InputError):
    """A kind (ingredient, strain, nutrient, protocol, profile) that no record describes."""


class ConflictError(MustwrightError):
    """Someone else changed the record since it was read; nothing was written."""


class ValidityWarning(UserWarning):
    """A published formula was used outside the range it was published for."""


def _shown(got: object) -> str:
    """The received value on one line, cut so that an error stays one line."""
    text = " ".join(repr(got).split()) if isinstance(got, str) else " ".join(str(got).split())
    return text if len(text) <= 120 else text[:117] + "..."
