import lineup.skills


def test_everything_promised_is_there():
    assert lineup.skills.__all__ == sorted(lineup.skills.__all__)
    for name in lineup.skills.__all__:
        assert getattr(lineup.skills, name).__doc__ or name == "Scale"
