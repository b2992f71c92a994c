"""What people meet: the command line, the terminal and the pages. No diagnosis happens here."""
