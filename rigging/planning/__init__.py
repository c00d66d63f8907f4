"""Before any photo: the starting job, expected uncertainty, advice and its worth."""
