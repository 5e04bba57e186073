"""The checks: each module looks at one subject and returns findings; none of them changes anything."""
