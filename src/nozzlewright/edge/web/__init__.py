"""The bench in the browser: a thin door onto the acts."""
