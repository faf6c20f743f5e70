"""From a plan to the files of a track."""
