"""What a workbook shows and asks: forms, figures, verdicts and the pages around them."""
