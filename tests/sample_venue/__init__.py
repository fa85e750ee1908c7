"""The invented venue behind ``sample_exports/``, and what truly happened there."""
