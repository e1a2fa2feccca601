"""What arrows on a target teach about the set-up."""
