"""The catalogue in other people's formats."""
