"""Style sheet and browser functions, shipped with the package."""
