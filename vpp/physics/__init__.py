"""Pure functions of sailing physics, SI and radians, any array library."""
