"""The one definition: read from YAML with its places, checked, packed, frozen; and its codec."""
