"""The built-in models: each imports only `arrowloft.plugin`, NumPy and SciPy; nobody imports it."""
