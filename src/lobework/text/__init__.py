"""Names, messages and cautions as text: cleaned for a line, a terminal or a cell; shortened for a prompt.

No arithmetic, and nothing that knows a part of the lathe.
"""
