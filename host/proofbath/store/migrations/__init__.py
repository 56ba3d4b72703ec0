"""Steps from each released schema of the database to the next, run by Alembic."""
