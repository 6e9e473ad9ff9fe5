"""Laws: changes of a job whose effect on the goals is known exactly, on standard and on random tiny jobs."""
