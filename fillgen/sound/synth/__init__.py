"""The sounds: recipes of voices made to sound, mixed to stereo, and sampled for a page.

| module | what it holds |
|---|---|
| `recipes` | the voices of `rules/voices.toml` as values; which voice stands for which General MIDI sound |
| `loudness` | how loud a frequency is heard |
| `tones`, `kit` | one tone of a voice, one stroke of a drum, as samples |
| `room`, `limiter` | a small room; no sample beyond the ceiling |
| `mix` | parts with their notes, mixed to stereo piece by piece |
| `bank` | short samples for a page, and a sampler that plays from them |
"""
