"""One detector a file: each looks at one kind of subject and tells a few conditions."""
