"""How everything on paper is set: page, type, tables, pictures, structure. Knows nothing of visits."""
