"""A local page in which the whole job can be done: compose, hear, record, render and hand over."""
