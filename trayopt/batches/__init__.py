"""F6: batches of many jobs: the manifest, the engines that solve, the run with its results, and the summary."""
