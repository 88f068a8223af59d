"""Its presence puts tests/ on the path: any test may ``from builders import ...``."""
