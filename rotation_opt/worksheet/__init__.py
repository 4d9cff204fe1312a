"""A workbook that the grower fills at home, written and read back."""

from rotation_opt.worksheet.reading import about, read
from rotation_opt.worksheet.writing import write

__all__ = ["about", "read", "write"]
