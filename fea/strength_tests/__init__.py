"""From load tests to strengths that may be designed with."""
