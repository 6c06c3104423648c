"""Accuracy of `tidemark measure` on simulated hips whose truth is known."""
