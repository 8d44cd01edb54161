"""Faults against bugs: a fault is a person's to mend, and its message says how; anything else is a bug and is loud.

>>> class CableFault(OSError): ...
>>> is_fault(CableFault("plug it in")), is_fault(KeyError("x"))
(True, False)
"""

from __future__ import annotations


def is_fault(fault: BaseException) -> bool:
    """Tell whether `fault` is one that the person at the bench can mend: a class named so, here or in a room."""
    return any(cls.__name__.endswith("Fault") for cls in type(fault).__mro__)
