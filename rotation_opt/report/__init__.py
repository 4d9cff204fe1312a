"""What a run found out, as pages of words and tables, and the renderers that show them."""
