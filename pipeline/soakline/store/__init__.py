"""What the stages made is kept between runs, each under a key of exactly what it was made from."""
