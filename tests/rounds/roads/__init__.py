"""Travel times by road."""
