"""Reading: files to typed values. Nothing past this door meets a bad file."""
