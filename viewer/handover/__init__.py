"""What is handed over: plan for the installer, quantities, workbook, model files."""
