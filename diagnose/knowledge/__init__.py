"""What the program knows before it sees a case: part kinds, checks, circumstances, layouts."""
