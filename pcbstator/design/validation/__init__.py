"""What is told about wrong input: what a validator says in the words of the file, and rules between keys."""
