"""The visit record as a PDF: read from the signed record, set section by section."""
