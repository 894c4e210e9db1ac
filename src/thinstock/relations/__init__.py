"""Published formulas, one file per physics: pure functions of SI numbers or arrays, each with its label."""
