"""Travel times by road: our own graph, a straight line, or a table server. No Django in here."""
