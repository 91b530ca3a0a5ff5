"""From places to equations: elements, one assembler, the System of arrays, its statics and modes. Equations in PHYSICS.md."""
