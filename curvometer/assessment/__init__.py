"""Teaching: exercises to hand out, submissions to mark against reference tracings, a class in one table."""
