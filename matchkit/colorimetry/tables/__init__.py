"""Tables the package needs, and the scripts that remake them."""
