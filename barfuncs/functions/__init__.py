"""The functions, one module a group."""
