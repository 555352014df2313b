"""How browsers reach the pages: over TLS by the shop's own authority, or in the clear on this machine."""
