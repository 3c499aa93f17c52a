"""Work area Release: findings, waivers, sign-off, export."""
