"""The cell library: cell classes and generic module records, as data.

`cells/` holds one TOML file and one CSV file of open-circuit curves a class, and
`laws.toml` for what all classes share; `modules/` holds one TOML file a module record.
The records are invented, typical figures of no maker's product.
"""

from __future__ import annotations

from importlib import resources
from importlib.resources.abc import Traversable

FOLDER: Traversable = resources.files(__name__)
CELLS: Traversable = FOLDER.joinpath("cells")
MODULES: Traversable = FOLDER.joinpath("modules")
