"""A folder of tracks as a site that can be uploaded: an index, each session's page, and a feed."""
