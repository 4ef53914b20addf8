"""What a mating pair will have between its parts, before anything is printed."""
