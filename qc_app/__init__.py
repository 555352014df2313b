"""Quality log for shops that prefabricate timber building panels."""
