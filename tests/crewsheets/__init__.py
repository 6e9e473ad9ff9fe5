"""The crew's sheets: lists, pictures, page and what comes back."""
