"""What there is to read: pages from the data, guides by hand, and how both are written out."""
