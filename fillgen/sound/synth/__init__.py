"""The synthesizer: voices made from the recipes in `rules/voices.toml`, mixed to stereo, and sampled for a page."""
