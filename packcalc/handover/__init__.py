"""What is handed over: build sheet, commissioning, maintenance, papers, bill of materials."""
