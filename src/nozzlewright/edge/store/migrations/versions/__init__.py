"""One file for each step; a step that has been released is never altered."""
