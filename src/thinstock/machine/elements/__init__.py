"""The elements of a former as a machine file lists them, one file a kind: each is data, and says what pressure drains
where and what it looks like.

To add one: a file here with a class under `@element("its word in machine files")`, its `build` and its `outline`.
Nothing else need be told; a test says what was forgotten.
"""

from importlib import import_module
from pkgutil import iter_modules

from thinstock.machine.elements.base import KINDS as KINDS
from thinstock.machine.elements.base import Arriving as Arriving
from thinstock.machine.elements.base import Entry as Entry
from thinstock.machine.elements.base import FormingElement as FormingElement

# isort: split
from thinstock.machine.elements.board import FormingBoard as FormingBoard  # isort: skip
from thinstock.machine.elements.impact import JetImpact as JetImpact  # isort: skip
from thinstock.machine.elements.table_rolls import TableRolls as TableRolls  # isort: skip
from thinstock.machine.elements.foils import Foils as Foils  # isort: skip
from thinstock.machine.elements.gravity import GravityTable as GravityTable  # isort: skip
from thinstock.machine.elements.box import FormingBox as FormingBox  # isort: skip
from thinstock.machine.elements.breast import SuctionBreastRoll as SuctionBreastRoll  # isort: skip
from thinstock.machine.elements.inclined import InclinedBoxes as InclinedBoxes  # isort: skip
from thinstock.machine.elements.roll import FormingRoll as FormingRoll  # isort: skip
from thinstock.machine.elements.straight import Straight as Straight  # isort: skip

for _module in iter_modules(__path__):
    import_module(f"{__name__}.{_module.name}")
