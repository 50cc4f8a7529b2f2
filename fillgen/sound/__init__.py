"""Ideas made to sound: voices, performances, playback, ports."""
