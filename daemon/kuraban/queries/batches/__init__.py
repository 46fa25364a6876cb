"""Questions about batches: where they stood, how they went, their sheets and exports."""
