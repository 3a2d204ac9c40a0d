"""Everything this package means to raise.

::

    JartestError
    ├── BadPhoto (ValueError)        the bytes are no photo that can be read
    ├── BadEntry (ValueError)        something typed, sent or marked cannot be taken as it stands
    │   └── BadUnit                  an amount, rate or volume that cannot be read
    ├── BadParcel (ValueError)       a file that came in is no parcel or backup that can be taken
    ├── BadLimits (ValueError)       the file of limits cannot be used
    ├── NotFound (LookupError)       no such test, look, photo or product
    │   └── Lapsed                   a link that was good until its test was signed or stopped
    ├── Conflict (RuntimeError)      somebody else saved first; nothing was overwritten
    ├── StoreFault (OSError)         the world failed: disk full, read-only, locked, damaged
    └── CameraFault (OSError)        the camera gives no picture

A message is one sentence: what is wrong, the value seen, what to do; no path or secret that
its reader may not see.  A poor photo is no error: it is a flag on the reading.
"""


class JartestError(Exception):
    """Parent of every error that this package raises on purpose."""


class BadPhoto(JartestError, ValueError):
    """The bytes are not a photo that can be read safely."""


class BadEntry(JartestError, ValueError):
    """Something typed, sent or marked cannot be taken as it stands."""


class BadUnit(BadEntry):
    """An amount, rate or volume that cannot be read."""


class BadParcel(JartestError, ValueError):
    """A file that came in is no parcel or backup that can be taken; nothing of it was kept."""


class BadLimits(JartestError, ValueError):
    """The file of limits cannot be used."""


class NotFound(JartestError, LookupError):
    """No such test, look, photo or product."""


class Lapsed(NotFound):
    """A link that was good until its test was signed or stopped."""


class Conflict(JartestError, RuntimeError):
    """Somebody else saved first; nothing was overwritten."""


class StoreFault(JartestError, OSError):
    """The disk, the database or the folder failed."""


class CameraFault(JartestError, OSError):
    """The camera is not there, or gives no picture."""
