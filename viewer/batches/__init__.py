"""Long work in fixed batches: on all cores or a cluster, kept on disk, gone on with after a stop."""
