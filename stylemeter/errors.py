"""What can go wrong, said in one line: where, what is wrong, what to do.

Conventions: every error the package raises on purpose is a `StylemeterError`. The command line prints
``str(error)`` and turns the class into an exit code; nothing else in the package prints or exits.
"""

from __future__ import annotations

__all__ = [
    "AdviceError",
    "InputError",
    "LimitError",
    "MissingLibraryError",
    "PassingError",
    "ProfileError",
    "StylemeterError",
    "UnknownNameError",
    "UsageError",
    "WrongTypeError",
]


class StylemeterError(Exception):
    """A problem the user can act on.

    Parameters
    ----------
    what : str
        What is wrong, in plain words.
    where : str, optional
        File, and the place in it (bar, line, field), when there is one.
    mend : str, optional
        What to do about it.

    Examples
    --------
    >>> print(StylemeterError("no notes", where="take.mid", mend="choose another part with --part"))
    take.mid: no notes; choose another part with --part
    """

    def __init__(self, what: str, *, where: str = "", mend: str = "") -> None:
        self.what = what
        self.where = where
        self.mend = mend
        super().__init__(what)

    def __str__(self) -> str:
        text = f"{self.where}: {self.what}" if self.where else self.what
        return " ".join((f"{text}; {self.mend}" if self.mend else text).split())

    def at(self, where: str) -> StylemeterError:
        """Return the same error, said of `where` in front of what it already names."""
        place = f"{where}: {self.where}" if self.where else where
        return type(self)(self.what, where=place, mend=self.mend)

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild, (type(self), self.what, self.where, self.mend))


def _rebuild(kind: type[StylemeterError], what: str, where: str, mend: str) -> StylemeterError:
    """Let an error cross from a worker process to its parent with its parts."""
    return kind(what, where=where, mend=mend)


class InputError(StylemeterError):
    """A file that can't be read as a melody."""


class LimitError(InputError):
    """A file that is larger, longer or slower to read than the limits allow."""


class PassingError(LimitError):
    """A file that took more time or memory than it was given: it may be read another day, or with more of them."""


class ProfileError(StylemeterError):
    """A profile that is missing, damaged or of another schema version."""


class AdviceError(StylemeterError):
    """An advice file that can't be used."""


class UsageError(StylemeterError):
    """An option whose value can't be understood."""


class UnknownNameError(UsageError):
    """A name that isn't there: says what there is instead."""

    @classmethod
    def among(cls, kind: str, name: str, there: list[str]) -> UnknownNameError:
        """Build the error that lists the names there are.

        Examples
        --------
        >>> print(UnknownNameError.among("part", "Flute", ["Guitar", "Bass"]))
        no part 'Flute'; there is: Guitar, Bass
        """
        return cls(f"no {kind} {name!r}", mend="there is: " + (", ".join(there) if there else "none"))


class MissingLibraryError(UsageError):
    """A library that is not installed with the package: few need it, or it is large."""

    @classmethod
    def of(cls, library: str, extra: str) -> MissingLibraryError:
        """Build the error that names the extra it comes with.

        Examples
        --------
        >>> print(MissingLibraryError.of("music21", "corpus"))
        music21 is not installed; pip install 'stylemeter[corpus]'
        """
        return cls(f"{library} is not installed", mend=f"pip install 'stylemeter[{extra}]'")


class WrongTypeError(UsageError, TypeError):
    """Something of another type than the library takes."""

    @classmethod
    def of(cls, what: str, given: object, wanted: str) -> WrongTypeError:
        """Build the error that says what was given and what is taken.

        Examples
        --------
        >>> print(WrongTypeError.of("a solo", [1, 2], "a melody or the path of a file"))
        a solo can't be of type list; give a melody or the path of a file
        """
        return cls(f"{what} can't be of type {type(given).__name__}", mend=f"give {wanted}")
