"""Make the models again from knowledge/corpus. Never imported while answering."""
