"""What is published: captions, chapters, marks, the description, the cover and the page."""
