"""What ISO 11898 says about bits on the pair, and nothing about catalogues."""
