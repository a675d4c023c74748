"""GO or HOLD, and why: what a check may see, the checks by group, and the verdict they give."""
