"""How a design looks: what shows, how high thread stacks, and whether a change kept it."""
