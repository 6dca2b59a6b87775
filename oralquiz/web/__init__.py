"""The web app: the teacher's page, the pupils' pages, practice at home."""
