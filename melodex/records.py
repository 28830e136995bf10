"""Records: dataclasses whose methods are written when they are first needed.

The standard library writes and compiles up to six methods for each dataclass while
its module is imported, about a millisecond a class. A question that is asked from
cold imports some sixty of them, makes instances of half, and compares or prints
few. The decorator of this module makes the slotted class at once and leaves each
method to the first who asks for it; what comes then is what the standard library
makes of the same class.

Conventions: the decorator has the name and the arguments of the standard one, so
that type checkers take it for that. A record has no bases and no class variables:
take the standard decorator for those.

Contents: dataclass.
"""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

__all__ = ["dataclass"]

DESCRIPTION = ("__dataclass_fields__", "__dataclass_params__")
METHODS = ("__repr__", "__eq__", "__hash__")
if sys.version_info >= (3, 13):
    METHODS += ("__replace__",)


class Later:
    """Stands in a class for what has still to be made, and puts it there when asked."""

    __slots__ = ("blueprint", "name")

    def __init__(self, blueprint: Blueprint, name: str) -> None:
        self.blueprint = blueprint
        self.name = name

    def __get__(self, instance: Any, owner: type) -> Any:
        self.blueprint.make(self.name)
        return getattr(owner if instance is None else instance, self.name)


class Blueprint:
    """A class as it was written, and the record that became of it."""

    __slots__ = ("frozen", "names", "record", "written")

    def __init__(self, cls: type, frozen: bool) -> None:
        self.frozen = frozen
        self.written = dict(cls.__dict__)
        for name in ("__dict__", "__weakref__"):
            self.written.pop(name, None)
        self.names = tuple(cls.__annotations__)
        self.record = self.slotted(cls)

    def slotted(self, cls: type) -> type:
        """The class with slots, and with stand-ins for its methods."""
        space = {k: v for k, v in self.written.items() if k not in self.names}
        # A class that defines __eq__ alone gets None for __hash__ from Python.
        own = {name for name in space if space[name] is not None}
        for name in ("__init__", *METHODS, *DESCRIPTION):
            if name not in own:
                space[name] = Later(self, name)
        if self.frozen:
            space |= FROZEN
        elif "__hash__" not in own:
            space["__hash__"] = None
        space["__qualname__"] = cls.__qualname__
        space["__slots__"] = self.names
        space["__match_args__"] = tuple(n for n in self.names if self.is_given(n))
        return type(cls)(cls.__name__, cls.__bases__, space)

    def is_given(self, name: str) -> bool:
        """Whether a field is an argument when an instance is made."""
        default = self.written.get(name)
        return not isinstance(default, dataclasses.Field) or default.init

    def make(self, name: str) -> None:
        """Put one method where its stand-in is, and what comes along with it."""
        if name == "__init__":
            self.put("__init__", written_init(self))
        elif name == "__dataclass_fields__":
            # All that replace, asdict and fields ask for: no method is compiled.
            self.put(name, getattr(self.standard(init=False, repr=False, eq=False), name))
        else:
            whole = self.standard(frozen=self.frozen)
            for each in (*METHODS, "__dataclass_params__"):
                if isinstance(self.record.__dict__.get(each), Later):
                    self.put(each, whole.__dict__[each])

    def standard(self, **options: bool) -> Any:
        """What the standard library makes of the class as it was written."""
        plain = type(self.record)(self.record.__name__, (), dict(self.written))
        return dataclasses.dataclass(**options)(plain)

    def put(self, name: str, made: Any) -> None:
        """Give the record what was made."""
        setattr(self.record, name, made)


def written_init(blueprint: Blueprint) -> Any:
    """``__init__`` with the arguments, the annotations and the defaults of the fields."""
    given = [name for name in blueprint.names if blueprint.is_given(name)]
    space: dict[str, Any] = {"_set": object.__setattr__, "_left_out": object()}
    arguments, lines = ["self"], []
    for name in blueprint.names:
        argument, value = written_field(blueprint, name, space)
        if name in given:
            arguments.append(argument)
        if value:
            setting = f"_set(self, {name!r}, {value})"
            lines.append(setting if blueprint.frozen else f"self.{name} = {value}")
    if "__post_init__" in blueprint.written:
        lines.append("self.__post_init__()")
    text = (
        f"def _make({', '.join(space)}):\n"
        f" def __init__({', '.join(arguments)}):\n  "
        + "\n  ".join(lines or ["pass"])
        + "\n return __init__"
    )
    made: dict[str, Any] = {}
    # The module's own names, so that the annotations can be looked up in them.
    exec(text, vars(sys.modules[blueprint.record.__module__]), made)
    init = made["_make"](**space)
    init.__qualname__ = f"{blueprint.record.__qualname__}.__init__"
    kinds = blueprint.written["__annotations__"]
    init.__annotations__ = {name: kinds[name] for name in given} | {"return": None}
    return init


def written_field(
    blueprint: Blueprint, name: str, space: dict[str, Any]
) -> tuple[str, str]:
    """How a field stands among the arguments, and what it is set to; notes defaults."""
    default: Any = blueprint.written.get(name, dataclasses.MISSING)
    factory: Any = dataclasses.MISSING
    if isinstance(default, dataclasses.Field):
        factory, default = default.default_factory, default.default
    given = blueprint.is_given(name)
    if factory is not dataclasses.MISSING:
        space[f"_factory_{name}"] = factory
        made = f"_factory_{name}()"
        chosen = f"{made} if {name} is _left_out else {name}"
        return f"{name}=_left_out", chosen if given else made
    if default is not dataclasses.MISSING:
        space[f"_default_{name}"] = default
        return f"{name}=_default_{name}", name if given else f"_default_{name}"
    return name, name if given else ""


def refused_setting(self: Any, name: str, value: Any) -> None:
    """``__setattr__`` of a frozen record."""
    raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")


def refused_deleting(self: Any, name: str) -> None:
    """``__delattr__`` of a frozen record."""
    raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")


def state(self: Any) -> list[Any]:
    """``__getstate__``: the values of the fields, for copies and other processes."""
    return [getattr(self, name) for name in self.__slots__]


def set_state(self: Any, values: list[Any]) -> None:
    """``__setstate__`` of a frozen record."""
    for name, value in zip(self.__slots__, values, strict=True):
        object.__setattr__(self, name, value)


FROZEN = {
    "__setattr__": refused_setting,
    "__delattr__": refused_deleting,
    "__getstate__": state,
    "__setstate__": set_state,
}


def lazy_dataclass(*, frozen: bool = False, slots: bool) -> Callable[[type], type]:
    """As ``dataclasses.dataclass(frozen=..., slots=True)``, made bit by bit.

    Raises
    ------
    TypeError
        If a class is not to have slots, has bases, or has class variables.
    """
    if not slots:
        raise TypeError("a record has slots")

    def decorate(cls: type) -> type:
        if cls.__bases__ != (object,):
            raise TypeError(f"{cls.__name__} has bases: use dataclasses.dataclass")
        if any("ClassVar" in str(kind) for kind in cls.__annotations__.values()):
            raise TypeError(f"{cls.__name__} has class variables: likewise")
        return Blueprint(cls, frozen).record

    return decorate


if TYPE_CHECKING:
    from dataclasses import dataclass
else:
    dataclass = lazy_dataclass
