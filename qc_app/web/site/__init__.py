"""Pages for the site and for the customer: what is raised next, and what is proven of a building."""

from qc_app.web.site import proof
from qc_app.web.site.next import pages as next_pages

BLUEPRINTS = (next_pages, proof.pages)
