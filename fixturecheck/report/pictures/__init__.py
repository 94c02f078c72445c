"""Pictures of a result: scenes, views, words on them, and the process that draws."""
