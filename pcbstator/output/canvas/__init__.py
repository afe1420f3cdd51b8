"""Pages and sheets that drawings are made on."""
