"""Its presence puts tests/ on the path: any test may ``from builders import ...``."""

import firstglow.cli.main  # noqa: F401 - one thread for linear algebra, set before numpy is loaded
