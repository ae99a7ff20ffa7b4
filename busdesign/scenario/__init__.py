"""What happens to the bus and what must hold: reader, model, the grammar of expectations and its evaluator."""
