"""What was recorded on the bench, held against what the catalogue says, block by block: length does not matter."""
