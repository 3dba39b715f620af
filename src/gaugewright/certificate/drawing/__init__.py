"""Drawings from data alone: the tank in section, the tape beside it, the table's plot.

Every function takes numbers and words and gives SVG text.  Shapes carry classes, so that
a style sheet can give them other colours, and presentation attributes, so that they look
right where there is none.
"""
