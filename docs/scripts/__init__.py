"""Scripts that make the generated parts of the documentation."""
