"""What a ballistics calculation takes of a mix and a motor."""
