"""Progressive failure, many samples at once: attachments give way one after another, rows hold or let go."""
