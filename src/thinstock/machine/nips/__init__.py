"""The nips of a press, one file a kind; to add one: a file here with a class under `@nip_kind("its word")`."""

from importlib import import_module
from pkgutil import iter_modules

from thinstock.machine.nips.base import NIPS as NIPS
from thinstock.machine.nips.base import Nip as Nip
from thinstock.machine.nips.roll import RollNip as RollNip
from thinstock.machine.nips.shoe import ShoeNip as ShoeNip

for _module in iter_modules(__path__):
    import_module(f"{__name__}.{_module.name}")
