"""What a browser is shown: the pages as files, and the serving of them; computes nothing."""
