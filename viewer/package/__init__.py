"""The calculation package: one document, as PDF and as a page that stands alone."""
