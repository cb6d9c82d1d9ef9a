"""What the user types: commands, exit statuses, what the terminal shows."""
